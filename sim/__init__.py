"""Rollpath: rear stagger, bite and tire choice for dirt-oval cars with a locked rear axle."""
