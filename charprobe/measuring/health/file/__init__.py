"""What the file and its samples tell, before anything is known of what was played."""
