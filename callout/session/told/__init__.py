"""What the session says: echoes, questions and answers, as sayings."""
