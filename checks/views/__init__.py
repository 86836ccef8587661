"""Pages: fetch, ask a service, answer."""
