"""Answers in a tenth of their bytes, where nobody can learn a secret from how many those are.

Whoever can have a browser ask for pages, put text into them, and watch the line, learns what else
stands in a page from its compressed size (BREACH, 2013). So:

- the proof in a form is masked anew in each answer (Django), and so is the key of one intention;
- the size is blurred by up to 100 random bytes (Heal the Breach; Django's middleware);
- what shows a secret is left as it is: the pages of one's own account (codes, keys), and every
  answer to something sent, which is where tokens, links and codes are shown, once.

Left as they are, too: answers with a tag, since an edit is held against the very same tag, which
compression would have to weaken; and downloads, which are made while they are sent.
"""

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware

SECRET = ("/account/",)


class CompressionMiddleware(GZipMiddleware):
    """Django's, for what is worth it and tells nothing."""

    def process_response(
        self, request: HttpRequest, response: HttpResponseBase
    ) -> HttpResponseBase:
        """The answer."""
        plain = (
            response.streaming
            or response.has_header("ETag")
            or request.method != "GET"
            or request.path.startswith(SECRET)
        )
        if plain or not isinstance(response, HttpResponse):
            return response
        answer: HttpResponseBase = super().process_response(request, response)
        return answer
