"""Ports, link, protocol codec, client, recording and replay of bytes."""
