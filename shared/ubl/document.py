"""
What is read and written of each document: one table for the reader and the writer.

A document is one frozen value. A table says of each of its parts where it stands, as a path of
elements in the order of the schema's sequence, and of what kind it is.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Final

NAMESPACE: Final = "urn:oasis:names:specification:ubl:schema:xsd:"
SPACES: Final = {
    "cac": f"{NAMESPACE}CommonAggregateComponents-2",
    "cbc": f"{NAMESPACE}CommonBasicComponents-2",
}
GTIN: Final = "0160"
"""Scheme of a GTIN in the ISO/IEC 6523 list that identifiers of items name."""
VERSION: Final = "2.1"


class Kind(StrEnum):
    """The documents that are exchanged."""

    ORDER = "Order"
    ORDER_RESPONSE = "OrderResponse"
    DESPATCH_ADVICE = "DespatchAdvice"
    RECEIPT_ADVICE = "ReceiptAdvice"


@dataclass(frozen=True)
class Quantity:
    """A value with its Recommendation 20 code."""

    value: Decimal
    unit: str


@dataclass(frozen=True)
class Money:
    """An amount with its ISO 4217 code."""

    value: Decimal
    currency: str


@dataclass(frozen=True)
class Line:
    """A line of a document; what a kind of document has no place for stays empty."""

    id: str
    note: str = ""
    status: str = ""
    quantity: Quantity | None = None
    outstanding: Quantity | None = None
    rejected: Quantity | None = None
    reject_reason: str = ""
    oversupply: Quantity | None = None
    received_on: date | None = None
    order_line: str = ""
    order_id: str = ""
    amount: Money | None = None
    wanted_on: date | None = None
    promised_on: date | None = None
    price: Money | None = None
    price_per: Quantity | None = None
    packs: Quantity | None = None
    pack_size: Decimal | None = None
    name: str = ""
    buyers_item: str = ""
    sellers_item: str = ""
    gtin: str = ""
    properties: tuple[tuple[str, str], ...] = ()
    made_on: date | None = None
    lot: str = ""
    expires_on: date | None = None


@dataclass(frozen=True)
class Document:
    """An order, its answer, an advice of what was sent or of what came in."""

    kind: Kind
    id: str
    issued_on: date
    response: str = ""
    note: str = ""
    currency: str = ""
    order_id: str = ""
    despatch_id: str = ""
    buyer_id: str = ""
    buyer: str = ""
    buyer_address: str = ""
    seller_id: str = ""
    seller: str = ""
    seller_address: str = ""
    deliver_to: str = ""
    shipment: str = ""
    packages: Quantity | None = None
    tracking: str = ""
    arrives_on: date | None = None
    carrier: str = ""
    total: Money | None = None
    lines: tuple[Line, ...] = field(default=())


class Form(StrEnum):
    """Of what kind a part is."""

    TEXT = "text"
    LINES = "lines"
    DAY = "day"
    QUANTITY = "quantity"
    NUMBER = "number"
    MONEY = "money"
    CURRENCY = "currency"
    GTIN = "gtin"
    PROPERTIES = "properties"
    THERE = "there"


@dataclass(frozen=True)
class Part:
    """
    Where a part of a document stands.

    `path` is separated by `/`; the last element repeats where a text has several lines. `also` is
    a second place where the same is read. A part of the form `THERE` is an element that must be
    written, empty or not.
    """

    name: str
    path: str
    form: Form = Form.TEXT
    needed: bool = False
    also: str = ""
    most: int = 400


def _party(name: str, path: str) -> tuple[Part, ...]:
    party = f"{path}/cac:Party"
    return (
        Part("", path, Form.THERE),
        Part(f"{name}_id", f"{party}/cac:PartyIdentification/cbc:ID", most=80),
        Part(name, f"{party}/cac:PartyName/cbc:Name",
             also=f"{party}/cac:PartyLegalEntity/cbc:RegistrationName", most=160),
        Part(f"{name}_address", f"{party}/cac:PostalAddress/cac:AddressLine/cbc:Line", Form.LINES),
    )  # fmt: skip


_ID = Part("id", "cbc:ID", needed=True, most=80)
_DAY = Part("issued_on", "cbc:IssueDate", Form.DAY, needed=True)
_NOTE = Part("note", "cbc:Note", Form.LINES)
_CURRENCY = Part("currency", "cbc:DocumentCurrencyCode", Form.CURRENCY)
_ORDER = Part("order_id", "cac:OrderReference/cbc:ID", most=80)
_NEEDED_ORDER = Part("order_id", "cac:OrderReference/cbc:ID", needed=True, most=80)
_SHIPPING = "cac:Shipment/cac:Delivery"

HEADS: Final[dict[Kind, tuple[Part, ...]]] = {
    Kind.ORDER: (
        _ID, _DAY, _NOTE, _CURRENCY,
        *_party("buyer", "cac:BuyerCustomerParty"),
        *_party("seller", "cac:SellerSupplierParty"),
        Part("deliver_to", "cac:Delivery/cac:DeliveryAddress/cac:AddressLine/cbc:Line",
             Form.LINES),
        Part("total", "cac:AnticipatedMonetaryTotal/cbc:PayableAmount", Form.MONEY),
    ),
    Kind.ORDER_RESPONSE: (
        _ID, _DAY, Part("response", "cbc:OrderResponseCode", most=10), _NOTE, _CURRENCY,
        _NEEDED_ORDER,
        *_party("seller", "cac:SellerSupplierParty"),
        *_party("buyer", "cac:BuyerCustomerParty"),
    ),
    Kind.DESPATCH_ADVICE: (
        _ID, _DAY, _NOTE, _ORDER,
        *_party("seller", "cac:DespatchSupplierParty"),
        *_party("buyer", "cac:DeliveryCustomerParty"),
        Part("shipment", "cac:Shipment/cbc:ID", most=80),
        Part("packages", "cac:Shipment/cbc:TotalTransportHandlingUnitQuantity", Form.QUANTITY),
        Part("tracking", f"{_SHIPPING}/cbc:TrackingID", most=80),
        Part("deliver_to", f"{_SHIPPING}/cac:DeliveryAddress/cac:AddressLine/cbc:Line",
             Form.LINES),
        Part("arrives_on", f"{_SHIPPING}/cac:EstimatedDeliveryPeriod/cbc:EndDate", Form.DAY),
        Part("carrier", f"{_SHIPPING}/cac:CarrierParty/cac:PartyName/cbc:Name", most=160),
    ),
    Kind.RECEIPT_ADVICE: (
        _ID, _DAY, _NOTE, _ORDER,
        Part("despatch_id", "cac:DespatchDocumentReference/cbc:ID", most=80),
        *_party("buyer", "cac:DeliveryCustomerParty"),
        *_party("seller", "cac:DespatchSupplierParty"),
    ),
}  # fmt: skip
"""Of each document, what stands above its lines."""


def _item(*, packs: bool = False, lot: bool = False, properties: bool = False) -> list[Part]:
    item = "cac:Item"
    instance = f"{item}/cac:ItemInstance"
    of_packs = [
        Part("packs", f"{item}/cbc:PackQuantity", Form.QUANTITY),
        Part("pack_size", f"{item}/cbc:PackSizeNumeric", Form.NUMBER),
    ]
    of_lot = [
        Part("made_on", f"{instance}/cbc:ManufactureDate", Form.DAY),
        Part("lot", f"{instance}/cac:LotIdentification/cbc:LotNumberID", most=40),
        Part("expires_on", f"{instance}/cac:LotIdentification/cbc:ExpiryDate", Form.DAY),
    ]
    return [
        Part("", item, Form.THERE),
        *(of_packs if packs else ()),
        Part("name", f"{item}/cbc:Name", most=160),
        Part("buyers_item", f"{item}/cac:BuyersItemIdentification/cbc:ID", most=80),
        Part("sellers_item", f"{item}/cac:SellersItemIdentification/cbc:ID", most=80),
        Part("gtin", f"{item}/cac:StandardItemIdentification/cbc:ID", Form.GTIN, most=14),
        *([Part("properties", f"{item}/cac:AdditionalItemProperty", Form.PROPERTIES)]
          if properties else ()),
        *(of_lot if lot else ()),
    ]  # fmt: skip


_ORDER_LINE = Part("order_line", "cac:OrderLineReference/cbc:LineID", needed=True, most=80)
_LINE_ORDER = Part("order_id", "cac:OrderLineReference/cac:OrderReference/cbc:ID", most=80)

LINE_PATHS: Final = {
    Kind.ORDER: "cac:OrderLine/cac:LineItem",
    Kind.ORDER_RESPONSE: "cac:OrderLine/cac:LineItem",
    Kind.DESPATCH_ADVICE: "cac:DespatchLine",
    Kind.RECEIPT_ADVICE: "cac:ReceiptLine",
}
LINES: Final[dict[Kind, tuple[Part, ...]]] = {
    Kind.ORDER: (
        _ID, _NOTE, Part("quantity", "cbc:Quantity", Form.QUANTITY, needed=True),
        Part("amount", "cbc:LineExtensionAmount", Form.MONEY),
        Part("wanted_on", "cac:Delivery/cac:RequestedDeliveryPeriod/cbc:EndDate", Form.DAY,
             also="cac:Delivery/cbc:LatestDeliveryDate"),
        Part("price", "cac:Price/cbc:PriceAmount", Form.MONEY),
        Part("price_per", "cac:Price/cbc:BaseQuantity", Form.QUANTITY),
        *_item(packs=True, properties=True),
    ),
    Kind.ORDER_RESPONSE: (
        _ID, _NOTE, Part("status", "cbc:LineStatusCode", most=20),
        Part("quantity", "cbc:Quantity", Form.QUANTITY),
        Part("promised_on", "cac:Delivery/cac:PromisedDeliveryPeriod/cbc:EndDate", Form.DAY),
        *_item(),
    ),
    Kind.DESPATCH_ADVICE: (
        _ID, _NOTE, Part("quantity", "cbc:DeliveredQuantity", Form.QUANTITY),
        Part("outstanding", "cbc:OutstandingQuantity", Form.QUANTITY),
        _ORDER_LINE, _LINE_ORDER, *_item(lot=True),
    ),
    Kind.RECEIPT_ADVICE: (
        _ID, _NOTE, Part("quantity", "cbc:ReceivedQuantity", Form.QUANTITY),
        Part("rejected", "cbc:RejectedQuantity", Form.QUANTITY),
        Part("reject_reason", "cbc:RejectReason"),
        Part("oversupply", "cbc:OversupplyQuantity", Form.QUANTITY),
        Part("received_on", "cbc:ReceivedDate", Form.DAY),
        Part("order_line", "cac:OrderLineReference/cbc:LineID", most=80), _LINE_ORDER,
        *_item(lot=True),
    ),
}  # fmt: skip
"""Of each document, what stands in a line."""
