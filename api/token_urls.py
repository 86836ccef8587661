"""URLs of the crew tokens page."""

from django.urls import path

from api import token_views

app_name = "tokens"
urlpatterns = [
    path("account/tokens/", token_views.token_list, name="list"),
    path("account/tokens/<uuid:pk>/end/", token_views.revoke_token_view, name="revoke"),
]
