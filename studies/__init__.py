"""The door for people: requests, results, command line, reports."""
