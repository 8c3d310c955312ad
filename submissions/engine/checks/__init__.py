"""What is asked of every take: one question a file, all in one visible list."""
