"""A signer's identity: a private key with its certificate.

`issue` makes a self-issued one, or a request to an authority; `keys` opens files that
hold one, `usage` says what a certificate must allow, `signer` what it says of its holder.
"""
