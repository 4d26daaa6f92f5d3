package exchange

import "lastgood/workflow/lot"

var productTable = table{
	name:     "products",
	required: []string{"product"},
	optional: []string{"name", "ready_to_eat", "supports_growth", "consumers", "shelf_life_days"},
}

func decodeProduct(r *record) lot.Product {
	return lot.Product{
		Code:           r.code("product"),
		Name:           r.note("name"),
		ReadyToEat:     r.flag("ready_to_eat"),
		SupportsGrowth: r.flag("supports_growth"),
		Consumers:      word(r, "consumers", lot.General, lot.Vulnerable),
		ShelfLifeDays:  r.days("shelf_life_days", 0),
	}
}

var lotTable = table{
	name:     "lots",
	required: []string{"lot"},
	optional: []string{"product", "made_at", "made_from", "made_until", "quantity", "quantity_unit"},
}

func decodeLot(r *record) lot.Lot {
	l := lot.Lot{
		Code:      r.mark("lot", Product),
		Product:   r.code("product"),
		MadeAt:    r.at("made_at"),
		MadeFrom:  r.at("made_from"),
		MadeUntil: r.at("made_until"),
		Quantity:  r.quantity("quantity"),
	}
	r.inOrder(l.MadeFrom, l.MadeUntil, "made_until")
	return l
}

var stayTable = table{
	name:     "stays",
	required: []string{"lot", "location", "from"},
	optional: []string{"to"},
}

func decodeStay(r *record) lot.Stay {
	from, to := r.at("from"), r.at("to")
	r.inOrder(from, to, "to")
	return lot.Stay{Lot: r.mark("lot", Product), Location: r.mark("location", Place), From: orZero(from), To: to}
}

var transformationTable = table{
	name:     "transformations",
	required: []string{"event", "at", "input_lot", "output_lot"},
	optional: []string{"input_quantity", "output_quantity", "quantity_unit"},
}

func decodeTransformation(r *record) lot.Transformation {
	t := lot.Transformation{
		Event:          r.code("event"),
		At:             r.moment("at"),
		Input:          r.mark("input_lot", Product),
		Output:         r.mark("output_lot", Product),
		InputQuantity:  r.quantity("input_quantity"),
		OutputQuantity: r.quantity("output_quantity"),
	}
	if t.Input != "" && t.Input == t.Output {
		r.fail("output_lot", flawf("lot-into-itself", "the lot %s cannot be made of itself", quote(t.Input)))
	}
	return t
}

var shipmentTable = table{
	name:     "shipments",
	required: []string{"shipment", "lot", "shipped_at"},
	optional: []string{"quantity", "quantity_unit", "consignee"},
}

func decodeShipment(r *record) lot.Shipment {
	return lot.Shipment{
		Shipment:  r.code("shipment"),
		Lot:       r.mark("lot", Product),
		Quantity:  r.quantity("quantity"),
		ShippedAt: r.moment("shipped_at"),
		Consignee: r.mark("consignee", Place),
	}
}

var placeTable = table{
	name:     "locations",
	required: []string{"location"},
	optional: []string{"vessel", "note"},
}

func decodePlace(r *record) lot.Place {
	return lot.Place{Code: r.mark("location", Place), Vessel: r.flag("vessel"), Note: r.note("note")}
}

var cleanoutTable = table{
	name:     "cleanouts",
	required: []string{"location", "at"},
	optional: []string{"from", "note", "withdrawn"},
}

func decodeCleanout(r *record) lot.Cleanout {
	from, at := r.at("from"), r.at("at")
	r.inOrder(from, at, "at")
	return lot.Cleanout{Location: r.mark("location", Place), At: orZero(at), From: from, Note: r.note("note"),
		Withdrawn: orZero(r.flag("withdrawn"))}
}
