# One image for web, worker, beat and migrations; docker-compose.yml says which a container is.
FROM python:3.11.14-slim AS packages
# Where it is set, what is written here goes by it and not by the clock (docs/operations.md).
ARG SOURCE_DATE_EPOCH
RUN python -m venv /opt/venv
COPY requirements.txt .
RUN /opt/venv/bin/pip install --no-cache-dir --disable-pip-version-check \
    --require-hashes --no-deps -r requirements.txt

FROM python:3.11.14-slim
ARG SOURCE_DATE_EPOCH
ENV PATH=/opt/venv/bin:$PATH \
    PYTHONUNBUFFERED=1 \
    PYTHONDONTWRITEBYTECODE=1 \
    DJANGO_SETTINGS_MODULE=config.settings \
    STATIC_ROOT=/srv/static \
    PORT=8000
RUN useradd --system --uid 10001 --no-create-home --shell /usr/sbin/nologin ledger
COPY --from=packages /opt/venv /opt/venv
WORKDIR /srv/portaledger
COPY manage.py ./
COPY config config
COPY audit audit
COPY web web
COPY people people
COPY stations stations
COPY recipes recipes
COPY templates templates
COPY static static
# The key is for this one command; a container without SECRET_KEY refuses to start.
RUN SECRET_KEY=for-collecting-static-files-only python manage.py collectstatic --noinput --verbosity 0
# A volume mounted here takes over this owner and mode.
RUN install --directory --owner=ledger --mode=0700 /keys
USER 10001
EXPOSE 8000
HEALTHCHECK --interval=15s --timeout=6s --start-period=30s --retries=3 \
    CMD ["python", "-m", "config.probe"]
# Nothing starts as a database role that could alter the history.
ENTRYPOINT ["python", "-m", "config.start"]
CMD ["granian", "--interface", "wsgi", "--host", "0.0.0.0", "--port", "8000", "--no-ws", \
     "--blocking-threads", "8", "config.wsgi:application"]
