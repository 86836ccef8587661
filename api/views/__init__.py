"""Views of the API: fetch, call a service, respond."""
