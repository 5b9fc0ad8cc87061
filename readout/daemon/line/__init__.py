"""What a line's thread knows of its points: who answers, by which plan, how long a silent one is heard."""
