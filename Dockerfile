# One image for web, worker and beat. Everything comes from the pinned lists; no system ffmpeg is needed.
FROM python:3.11-slim
ENV PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1 OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1
WORKDIR /srv/tapoff
COPY requirements.lock ./
RUN pip install --no-cache-dir --require-hashes -r requirements.lock
COPY . .
# The front-end files and the collected static files belong to the image. The variables only let Django start here.
RUN TAPOFF_VAR_DIR=/tmp/build python manage.py fetch_frontend \
    && TAPOFF_VAR_DIR=/tmp/build TAPOFF_STATIC_DIR=/srv/tapoff/static-built TAPOFF_STATIC_MANIFEST=1 \
       python manage.py collectstatic --no-input \
    && rm -rf /tmp/build node_modules \
    && useradd --system --uid 10001 --home /var/lib/tapoff --create-home tapoff
USER tapoff
EXPOSE 8000
