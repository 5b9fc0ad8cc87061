"""What a meter is told: settings and commands, written once and read back."""
