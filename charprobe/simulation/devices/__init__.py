"""Reference stages whose behaviour is known in closed form."""
