"""Every change to the record: readings, evaluations, findings, decisions, releases."""
