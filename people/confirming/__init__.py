"""Whether whoever acts has confirmed lately that it is still they."""
