"""Results as a screen for a racer, as JSON for a program, or drawn; nothing is computed here."""
