"""Private links: random, kept as hashes, open for a time, slow to guess, and silent about who is known."""

import re
from datetime import timedelta

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from portal.logs import without_links
from submissions import actions
from submissions.models import Entry, MagicLink
from tests import cast


def follow(client: Client, secret: str):
    return client.get(reverse("open-link", args=[secret]))


def links_in(text: str, name: str = "open-link") -> list[str]:
    start = reverse(name, args=["x"]).removesuffix("x/")
    return re.findall(re.escape(start) + r"([\w-]+)/", text)


class TestALink:
    def test_opens_its_players_page_in_any_browser_until_it_ends(self, player):
        for client in (Client(), Client()):
            response = follow(client, player.secret)
            assert response.status_code == 302
            assert response["Referrer-Policy"] == "no-referrer"
            assert player.secret not in response["Location"]
            assert client.get(response["Location"]).status_code == 200

    def test_is_not_stored_and_no_two_are_alike(self, player):
        made = [MagicLink.make(player.entry, "player") for _ in range(50)]
        secrets = {secret for _, secret in made}
        assert len(secrets) == 50
        assert all(len(secret) >= 43 for secret in secrets)  # 256 bits in base64url
        stored = str(list(MagicLink.objects.values()))
        assert not any(secret in stored for secret in secrets)

    def test_ends_by_time(self, player):
        MagicLink.objects.update(
            expires_at=timezone.now() - timedelta(seconds=1), created_at=timezone.now() - timedelta(days=40)
        )
        assert follow(Client(), player.secret).status_code == 404
        # What the browser held ends too.
        assert player.client.get(reverse("my-page", args=[player.entry.public_id])).status_code == 404

    def test_ends_when_revoked_and_with_its_player(self, player, at_once):
        MagicLink.objects.filter(digest=MagicLink.digest_of(player.secret)).update(revoked_at=timezone.now())
        assert follow(Client(), player.secret).status_code == 404

    def test_of_a_withdrawn_player_opens_nothing(self, player, at_once):
        with at_once():
            actions.withdraw_entry(player.entry)
        assert follow(Client(), player.secret).status_code == 404
        assert player.client.get(reverse("my-page", args=[player.entry.public_id])).status_code == 404

    def test_address_of_a_page_opens_nothing_by_itself(self, player):
        page = reverse("my-page", args=[player.entry.public_id])
        assert player.client.get(page).status_code == 200
        assert Client().get(page).status_code == 404

    def test_digest_opens_nothing(self, player):
        assert follow(Client(), MagicLink.digest_of(player.secret)).status_code == 404


class TestGuessing:
    def test_is_slowed_down(self, player, settings):
        settings.RATE_LIMITS = settings.RATE_LIMITS | {"link": (3, 300)}
        client = Client()
        assert [follow(client, f"guess-{n}").status_code for n in range(5)] == [404, 404, 404, 429, 429]
        refused = follow(client, player.secret)
        assert refused.status_code == 429
        assert int(refused["Retry-After"]) > 0

    def test_by_one_address_does_not_slow_down_others(self, player, settings):
        settings.RATE_LIMITS = settings.RATE_LIMITS | {"link": (1, 300)}
        client = Client()
        for n in range(3):
            follow(client, f"guess-{n}")
        other = Client(REMOTE_ADDR="192.0.2.7")
        assert follow(other, player.secret).status_code == 302


class TestRenewing:
    def test_sends_a_link_that_works(self, player, call, at_once):
        with at_once():
            actions.renew_links(call, player.entry.email.upper())
        (message,) = [m for m in mail.outbox if m.to == [player.entry.email]]
        (secret,) = links_in(message.body)
        assert follow(Client(), secret).status_code == 302

    def test_tells_a_stranger_nothing(self, people, call, at_once):
        url = reverse("renew-link", args=[call.slug])
        answers = []
        for address in (people.player.entry.email, "nobody@example.org"):
            client = Client()
            with at_once():
                response = client.post(url, {"email": address}, follow=True)
            text = re.sub(r'name="csrfmiddlewaretoken" value="\w+"', "", response.content.decode())
            answers.append((response.status_code, response.redirect_chain, text))
        assert answers[0] == answers[1]
        assert [m.to for m in mail.outbox] == [[people.player.entry.email]]

    def test_is_limited_without_telling(self, player, call, at_once, settings):
        settings.RATE_LIMITS = settings.RATE_LIMITS | {"mail": (2, 3600)}
        for n in range(4):
            with at_once():
                actions.renew_links(call, player.entry.email, address=f"192.0.2.{n}")
        assert len(mail.outbox) <= 2

    def test_by_one_address_is_limited_loudly(self, call, client, settings):
        settings.RATE_LIMITS = settings.RATE_LIMITS | {"mail": (2, 3600)}
        url = reverse("renew-link", args=[call.slug])
        codes = [client.post(url, {"email": f"n{n}@example.org"}).status_code for n in range(3)]
        assert codes == [302, 302, 429]


class TestEntering:
    def test_with_a_known_address_gives_no_sight_of_what_is_there(self, player, call):
        again, _ = cast.enter(call, player.entry.display_name)
        assert again.pk != player.entry.pk
        assert Entry.objects.filter(email=player.entry.email).count() == 2

    def test_is_limited_by_address(self, call, settings):
        from portal import limits

        settings.RATE_LIMITS = settings.RATE_LIMITS | {"entry": (2, 3600)}
        for n in range(2):
            cast.enter(call, f"Player {n}", address="192.0.2.1")
        with pytest.raises(limits.TooOften):
            cast.enter(call, "Player 3", address="192.0.2.1")
        cast.enter(call, "Player 4", address="192.0.2.2")

    def test_does_not_fill_a_strangers_mailbox(self, call, settings, at_once):
        settings.RATE_LIMITS = settings.RATE_LIMITS | {"mail": (2, 3600)}
        with at_once():
            for n in range(4):
                cast.enter(call, "Wren Aster", address=f"192.0.2.{n}")
        assert Entry.objects.count() == 4
        assert [m.to for m in mail.outbox] == [["wren.aster@example.org"]] * 2


class TestALog:
    @pytest.mark.parametrize("name", ["open-link", "stop-mail"])
    def test_holds_no_secret(self, name):
        secret = "abcdefghijklmnopqrstuvwxyz-_0123456789ABCDE"
        line = f'GET {reverse(name, args=[secret])} HTTP/1.1" 302'
        assert secret not in without_links(line)
        assert "302" in without_links(line)
