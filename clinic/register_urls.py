"""The addresses about who is who on the register: other names, likely duplicates, merges."""

from django.urls import path

from clinic.views import duplicates, merging, names

urlpatterns = [
    path("patients/duplicates/", duplicates.duplicates, name="duplicates"),
    path("patients/<int:pk>/names/", names.add_other_name, name="add-other-name"),
    path("names/<int:pk>/end/", names.end_other_name, name="end-other-name"),
    path("patients/<int:pk>/merge/", merging.find_same, name="find-same"),
    path("patients/<int:pk>/merge/<int:other>/", merging.merge_two, name="merge"),
    path("patients/<int:pk>/keep-apart/<int:other>/", duplicates.keep_two_apart, name="keep-apart"),
    path("kept-apart/<int:pk>/end/", duplicates.end_kept_apart, name="end-kept-apart"),
    path("merges/<int:pk>/undo/", merging.undo, name="undo-merge"),
]
