"""What is read and when: block reads, rounds, due times. Pure: no port, no sleeping."""
