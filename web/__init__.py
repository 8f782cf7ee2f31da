"""What every page and endpoint shares: form pages, errors, ETags, idempotency, numbers, charts."""
