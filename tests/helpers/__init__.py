"""What tests share: invented displays, signers, documents, outside tools."""
