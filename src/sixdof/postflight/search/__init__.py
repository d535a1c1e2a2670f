"""Where to search: probability maps, areas walked, the next strip."""
