"""Which of several maps fits a meter: read once for all of them, judged for each, and told in sentences."""
