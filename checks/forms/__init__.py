"""What people type on the pages, turned into what the services take."""
