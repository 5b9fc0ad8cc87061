"""What a recorder tells of what happens to it: events in the ledger, sentences for the person."""
