"""Deliveries: a job's sheets and their evidence in one BagIt bag (RFC 8493), and its check."""
