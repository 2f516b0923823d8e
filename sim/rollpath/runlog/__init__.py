"""Recorded laps, and what they say of the stagger."""
