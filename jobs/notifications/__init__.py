"""Notifications: event outbox, e-mail, webhooks and calendar feeds."""
