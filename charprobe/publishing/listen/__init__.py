"""What a page lets its reader hear: every setting beside the dry sound, at equal loudness."""
