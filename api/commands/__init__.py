"""What each command does once its words are read; imported only when asked for."""
