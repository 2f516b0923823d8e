"""Bite on the scale pads: what changes it, what holds it, and what weighings teach."""
