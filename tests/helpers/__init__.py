"""Shared by tests: invented displays, signers, documents, outside tools."""
