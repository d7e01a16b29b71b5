"""What a user does, one function each."""
