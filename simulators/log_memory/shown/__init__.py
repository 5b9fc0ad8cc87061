"""What a simulated memory shows and takes: extent, sessions, the lock, the four ways to its records."""
