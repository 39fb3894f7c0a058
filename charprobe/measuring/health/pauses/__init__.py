"""What sounds, or fails to, where nothing is played."""
