"""The trailer: one car, its rack, its tracks, its book, what is bolted on tonight, and the plan."""
