"""The trailer: one car, its rack, its tracks, its book, and the plan of a night."""
