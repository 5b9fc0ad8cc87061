"""What is true now, for whoever shows it: rows as they became durable, decoded; hours past; the log book."""
