"""What the driver feels of a stagger in the wheel."""
