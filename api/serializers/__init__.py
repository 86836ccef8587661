"""What is answered: the record's rows as JSON, a room to each noun."""
