"""Jobs, buildings, anchor plans, stages and people."""
