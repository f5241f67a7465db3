"""What staff say about two records: two people, or one."""

from django import forms


class TwoPeopleForm(forms.Form):
    """They are two people; a note may say how one knows."""

    note = forms.CharField(
        label="Note, how you know (may be left out)", required=False, max_length=500
    )


class MergeForm(forms.Form):
    """They are one person, and how one knows.

    `keep`: the id of the record that the page said is kept. `seen`: what the page showed of the two
    records, to be compared with what they are now.
    """

    keep = forms.IntegerField(min_value=1, widget=forms.HiddenInput)
    seen = forms.CharField(max_length=64, widget=forms.HiddenInput)
    reason = forms.CharField(
        label="How you know that they are one person",
        help_text=(
            "Name two identifiers that you checked yourself, and with whom. It stays on record."
        ),
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 3, "maxlength": 500}),
    )
