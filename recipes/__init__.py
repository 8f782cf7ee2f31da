"""The documents and decisions: recipes, versions, requests, publications, permits."""
