"""Mail to people: whether there is a server for it, what that answers, and addresses it refused."""
