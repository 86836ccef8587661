"""Jobs, buildings, anchor plans, stages and the people on a job."""
