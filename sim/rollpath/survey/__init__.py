"""The shape of a track from a tape, a lap length or a position log."""
