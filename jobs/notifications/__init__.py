"""What happens on a job, told to people by letter, to programs, and to calendars."""
