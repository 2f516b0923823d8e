"""The rack, the air in its tires, and the choice of four."""
