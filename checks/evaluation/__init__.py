"""From a plan and its readings to verdicts and findings; no Django."""
