"""The ear: where zero is, which written strokes were played and when, how loud and how clean. Begin at listen.py."""
