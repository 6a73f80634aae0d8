"""Remarks as the page tells them."""

from hipwright.apps.web.bones.remarks import remarks_together
from hipwright.domain.anatomy import Bone, Remark, Severity


def remark(text: str, bone: Bone | None = None) -> Remark:
    return Remark(code="any", severity=Severity.WARNING, text=text, bone=bone)


def test_the_same_words_about_two_bones_are_told_once_with_both_names():
    (told,) = remarks_together(
        [
            remark("Right femur: cut off by the scan.", Bone.FEMUR_RIGHT),
            remark("cut off by the scan.", Bone.FEMUR_LEFT),
        ]
    )
    assert (told.about, told.text) == ("Right femur and left femur", "Cut off by the scan.")


def test_a_remark_on_the_scan_names_no_bone():
    (told,) = remarks_together([remark("Slices of 3 mm.")])
    assert (told.about, told.text) == ("", "Slices of 3 mm.")
