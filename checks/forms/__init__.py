"""Forms of the pages; each turns what is typed into arguments of a service."""
