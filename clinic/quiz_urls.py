"""The addresses by which staff give a quiz by another way than the emailed link."""

from django.urls import path

from clinic.views import other_ways, quiz_sheets
from clinic.views.enter_sheet import enter_code, enter_sheet
from clinic.views.patient_copy import patient_copy
from clinic.views.phone_quiz import phone_begin, phone_quiz

urlpatterns = [
    path("assignments/<int:pk>/quiz/", other_ways.other_ways, name="other-ways"),
    path("assignments/<int:pk>/quiz/screen/", other_ways.screen_code, name="screen-code"),
    path("assignments/<int:pk>/quiz/phone/", phone_begin, name="phone-begin"),
    path("submissions/<int:pk>/copy/", patient_copy, name="patient-copy"),
    path("quiz/phone/<int:pk>/", phone_quiz, name="phone-quiz"),
    path("quiz/sheets/", quiz_sheets.print_sheets, name="print-sheets"),
    path("quiz/sheets/<int:stamp>/", quiz_sheets.printed_sheets, name="printed-sheets"),
    path("quiz/sheets/<int:stamp>.pdf", quiz_sheets.sheets_pdf, name="sheets-pdf"),
    path("quiz/sheets/<int:stamp>/withdraw/", quiz_sheets.withdraw_sheets, name="withdraw-sheets"),
    path("quiz/codes/", enter_code, name="enter-code"),
    path("quiz/codes/<slug:code>/", enter_sheet, name="enter-sheet"),
    path("quiz/codes/<slug:code>.pdf", quiz_sheets.sheet_pdf, name="sheet-pdf"),
    path("quiz/codes/<slug:code>/withdraw/", quiz_sheets.withdraw_sheet, name="withdraw-sheet"),
]
