"""What a log gives away about the messages in it: guesses with evidence, never facts."""
