"""GET /healthz: 200 when database, broker and storage answer; 503 and which one when not."""

import pytest
from django.urls import reverse

from submissions.views import health


@pytest.fixture
def answers(monkeypatch, db):
    """All three answer, until a test breaks one."""
    checks = dict.fromkeys(health.CHECKS, lambda: None)
    monkeypatch.setattr(health, "CHECKS", checks)
    return checks


class TestHealth:
    def test_is_200_when_all_answer(self, client, answers):
        response = client.get(reverse("healthz"))
        assert response.status_code == 200
        assert response.json() == {"database": "ok", "broker": "ok", "storage": "ok"}

    @pytest.mark.parametrize("name", ["database", "broker", "storage"])
    def test_is_503_and_names_what_does_not(self, client, answers, name):
        def away():
            raise OSError("secret-host refused")

        answers[name] = away
        response = client.get(reverse("healthz"))
        assert response.status_code == 503
        assert response.json()[name] == "no answer"
        assert sorted(response.json().values()) == ["no answer", "ok", "ok"]
        assert "secret-host" not in response.content.decode()

    def test_asks_the_real_database_and_storage(self, db, own_folders):
        health.CHECKS["database"]()
        health.CHECKS["storage"]()

    def test_finds_a_broker_that_is_not_there(self, settings):
        from portal.embedded import free_port

        settings.CELERY_BROKER_URL = f"redis://127.0.0.1:{free_port()}/0"
        with pytest.raises(Exception, match="refused"):
            health.CHECKS["broker"]()
