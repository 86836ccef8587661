"""Addresses of the interface: fetch, ask a service, answer."""
