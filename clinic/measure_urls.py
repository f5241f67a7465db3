"""The addresses that ask of a module: does its quiz measure anything, how does it read?"""

from django.urls import path

from clinic.views.how_it_reads import clear_communication, how_it_reads
from clinic.views.quiz_measured import quiz_measured, quiz_measured_csv

urlpatterns = [
    path("modules/<slug:code>/quiz/", quiz_measured, name="quiz-measured"),
    path("modules/<slug:code>/quiz.csv", quiz_measured_csv, name="quiz-measured-csv"),
    path("modules/<slug:code>/reading/", how_it_reads, name="how-it-reads"),
    path("modules/<slug:code>/clear/", clear_communication, name="clear-communication"),
]
