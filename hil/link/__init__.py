"""The link: bytes between the host and a board. PROTOCOL.md says every byte."""
