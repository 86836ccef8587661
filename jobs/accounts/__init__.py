"""Who works here and on what: accounts, parts in jobs, invitations, who saw what."""
