"""Identities (a private key with its certificate), signatures and time stamps.

`keys` creates and opens identities, `token` opens those in a PKCS#11 token; `certificates`
reads certificates; `sign` and `read` handle signatures in a PDF, `detached` those beside a file.
"""
