"""The locked rear axle: what stagger lets it roll, and how it scrubs."""
