"""Invented titles in many scripts, and ways to look at a PDF with other libraries than its writer."""

from __future__ import annotations

import random

import numpy as np
import pypdfium2
from pypdf import PdfReader

#: Words to make titles of, by script: "grandmother, lake, summer, boat, wedding, brother" and their like.
WORDS: dict[str, list[str]] = {
    "Latin": ["Grandmother", "à", "l’étang", "Łódź", "žluťoučký", "Hồ", "brothers", "1943", "(summer)", "wedding"],
    "Greek": ["γιαγιά", "στη", "λίμνη", "καλοκαίρι", "γάμος", "ΑΔΕΛΦΟΣ", "1943", "βάρκα"],
    "Cyrillic": ["бабушка", "у", "озера", "лето", "свадьба", "Їжак", "лодка", "1943"],
    "Hebrew": ["סבתא", "ליד", "האגם", "קיץ", "(1943)", "חתונה", "שָׁלוֹם", "סירה"],
    "Arabic": ["جدتي", "عند", "البحيرة", "صيف", "١٩٤٣", "عُرْس", "(قارب)", "إخوة"],
    "Devanagari": ["दादी", "झील", "के", "पास", "क्षत्रिय", "विवाह", "नौका", "१९४३"],
    "Bengali": ["দাদি", "হ্রদের", "ধারে", "গ্রীষ্ম", "বিবাহ", "নৌকা"],
    "Tamil": ["பாட்டி", "ஏரிக்கரையில்", "கோடை", "திருமணம்", "படகு"],
    "Thai": ["คุณย่าที่ริมทะเลสาบ", "ฤดูร้อน", "แต่งงาน", "เรือ", "ปู่"],
    "Armenian": ["Տատիկը", "լճի", "մոտ", "ամառ", "հարսանիք"],
    "Georgian": ["ბებია", "ტბასთან", "ზაფხული", "ქორწილი"],
    "Ethiopic": ["አያቴ", "በሐይቅ", "ዳር", "ሠርግ", "ጀልባ"],
    "Han": ["祖母在湖边", "一九四三年，夏天", "婚礼", "兄弟", "（划船）"],
    "Kana": ["湖のそばの祖母", "ボート", "結婚式", "夏、", "きょうだい"],
    "Hangul": ["호숫가의", "할머니", "여름", "결혼식", "형제"],
}


def a_title(random_numbers: random.Random, script: str, words: int) -> str:
    """A title of so many words of one script."""
    return " ".join(random_numbers.choice(WORDS[script]) for _ in range(words))


def rendered(pdf: bytes, page: int, ppi: float) -> np.ndarray:
    """A page as grey pixels, (H, W) uint8, as PDFium draws it."""
    document = pypdfium2.PdfDocument(pdf)
    image = document[page].render(scale=ppi / 72, grayscale=True).to_numpy()
    document.close()
    return image[..., 0] if image.ndim == 3 else image


def unembedded_fonts(reader: PdfReader) -> set[str]:
    """Names of fonts that a PDF uses and does not hold."""
    missing = set()
    for page in reader.pages:
        for font in page["/Resources"].get("/Font", {}).values():
            descriptor = font.get_object().get("/FontDescriptor")
            if descriptor is None or "/FontFile2" not in descriptor.get_object():
                missing.add(font.get_object()["/BaseFont"])
    return missing
