"""Addresses of the pages that belong to the interface for programs."""

from django.urls import path

from api import token_pages

app_name = "tokens"
urlpatterns = [
    path("account/tokens/", token_pages.tokens, name="list"),
    path("account/tokens/<uuid:pk>/end/", token_pages.revoke, name="revoke"),
]
