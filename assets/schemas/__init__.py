"""JSON Schema files of all documents, made of the program's types and the guide's words."""
