"""What a measurement says: the glossary of its names, its entries, its JSON form."""
