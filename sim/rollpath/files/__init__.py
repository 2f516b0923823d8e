"""Files to objects and back: every fault told in one line, files written whole or not at all."""
