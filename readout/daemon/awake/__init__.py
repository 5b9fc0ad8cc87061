"""The computer kept from sleeping while it records, and what is said where it cannot be."""
