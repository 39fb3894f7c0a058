"""The recording path around a stage, and what goes wrong in one."""
