"""Faces for letters that this program's own lack: found, shaped, stated in a document."""
