"""Steel shift: one rigid movement of the whole steel or of one frame line."""
