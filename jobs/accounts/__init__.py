"""Accounts: people, roles, invitations and the view log."""
