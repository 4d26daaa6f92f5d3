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
		Code:      r.code("lot"),
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
	return lot.Stay{Lot: r.code("lot"), Location: r.code("location"), From: orZero(from), To: to}
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
		Input:          r.code("input_lot"),
		Output:         r.code("output_lot"),
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
		Lot:       r.code("lot"),
		Quantity:  r.quantity("quantity"),
		ShippedAt: r.moment("shipped_at"),
		Consignee: r.code("consignee"),
	}
}
