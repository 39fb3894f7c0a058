"""What the path adds, loses or exchanges on the way: other paths, coders, sides."""
