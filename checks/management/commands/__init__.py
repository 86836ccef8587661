"""One command a file: arguments in, a service called, words out."""
