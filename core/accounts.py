"""Changes that people make to their own account: name and e-mail address."""

from django.db import transaction

from core.models import AccountEvent, Person


@transaction.atomic
def change_name(*, actor: Person, first_name: str, last_name: str) -> bool:
    """Change the actor's own name, and record it; return whether it differs."""
    person = Person.objects.select_for_update().get(pk=actor.pk)
    before = person.get_full_name()
    person.first_name, person.last_name = first_name.strip(), last_name.strip()
    if person.get_full_name() == before:
        return False
    person.full_clean(exclude=["password"])
    person.save(update_fields=["first_name", "last_name"])
    _record_change(person, AccountEvent.Kind.NAME_CHANGED, before, str(person))
    return True


@transaction.atomic
def change_email(*, actor: Person, email: str) -> bool:
    """Change the actor's own e-mail address, and record it; return whether it differs.

    The caller has asked for a signature: a link for a new password goes to the address.
    """
    person = Person.objects.select_for_update().get(pk=actor.pk)
    before, person.email = person.email, email.strip()
    if person.email == before:
        return False
    person.full_clean(exclude=["password"])
    person.save(update_fields=["email"])
    _record_change(person, AccountEvent.Kind.EMAIL_CHANGED, before, person.email)
    return True


def _record_change(
    person: Person, kind: AccountEvent.Kind, before: str, after: str
) -> None:
    AccountEvent.objects.create(
        person=person, kind=kind, by=person, note=f"{before or 'none'} to {after}"
    )
