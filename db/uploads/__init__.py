"""Files from elsewhere, opened in a process of their own that has little memory, little time and nothing to lose."""
