"""What people look at: figures, a page, tables, the folder of a session."""
