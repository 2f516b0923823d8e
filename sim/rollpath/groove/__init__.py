"""Where the car goes: closed paths between the edges of a track."""
