"""What an archive's rows say: figures as data, worked out where the rows lie, never all in memory."""
