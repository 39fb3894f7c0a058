"""Profile against profile: what differs, what is the same within proven uncertainty."""
