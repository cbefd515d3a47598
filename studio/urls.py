"""The studio's addresses: each app brings its own, under names of its own."""

urlpatterns: list = []
